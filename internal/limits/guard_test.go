package limits

// guarded is every table once more, row by row. It says nothing about whether a
// figure is right, which is what the tests by formula are for; it makes any
// change of a table a change in two places.
var guarded = map[string]string{
	"41.2": `BS 88-2,2,33.1
BS 88-2,4,15.6
BS 88-2,6,7.80
BS 88-2,10,4.65
BS 88-2,16,2.43
BS 88-2,20,1.68
BS 88-2,25,1.29
BS 88-2,32,0.99
BS 88-2,40,0.75
BS 88-2,50,0.57
BS 88-2,63,0.44
BS 88-3,5,9.93
BS 88-3,16,2.30
BS 88-3,20,1.93
BS 88-3,32,0.91
BS 88-3,45,0.57
BS 88-3,63,0.36
BS 3036,5,9.10
BS 3036,15,2.43
BS 3036,20,1.68
BS 3036,30,1.04
BS 3036,45,0.56
BS 3036,60,0.40
BS 1362,3,15.6
BS 1362,13,2.30`,
	"41.3": `B,3,0.4,14.57
B,6,0.4,7.28
B,10,0.4,4.37
B,16,0.4,2.73
B,20,0.4,2.19
B,25,0.4,1.75
B,32,0.4,1.37
B,40,0.4,1.09
B,50,0.4,0.87
B,63,0.4,0.69
B,80,0.4,0.55
B,100,0.4,0.44
B,125,0.4,0.35
C,6,0.4,3.64
C,10,0.4,2.19
C,16,0.4,1.37
C,20,0.4,1.09
C,25,0.4,0.87
C,32,0.4,0.68
C,40,0.4,0.55
C,50,0.4,0.44
C,63,0.4,0.35
C,80,0.4,0.27
C,100,0.4,0.22
C,125,0.4,0.17
D,6,0.4,1.82
D,10,0.4,1.09
D,16,0.4,0.68
D,20,0.4,0.55
D,25,0.4,0.44
D,32,0.4,0.34
D,40,0.4,0.27
D,50,0.4,0.22
D,63,0.4,0.17
D,80,0.4,0.14
D,100,0.4,0.11
D,125,0.4,0.09
D,6,5,3.64
D,10,5,2.19
D,16,5,1.37
D,20,5,1.09
D,25,5,0.87
D,32,5,0.68
D,40,5,0.55
D,50,5,0.44
D,63,5,0.35
D,80,5,0.27
D,100,5,0.22
D,125,5,0.17`,
	"41.4": `BS 88-2,2,44
BS 88-2,4,21
BS 88-2,6,12.0
BS 88-2,10,6.80
BS 88-2,16,4.00
BS 88-2,20,2.80
BS 88-2,25,2.20
BS 88-2,32,1.70
BS 88-2,40,1.30
BS 88-2,50,0.99
BS 88-2,63,0.78
BS 88-2,80,0.55
BS 88-2,100,0.42
BS 88-2,125,0.32
BS 88-2,160,0.27
BS 88-2,200,0.18
BS 88-3,5,14.6
BS 88-3,16,3.90
BS 88-3,20,3.20
BS 88-3,32,1.60
BS 88-3,45,1.00
BS 88-3,63,0.68
BS 88-3,80,0.51
BS 88-3,100,0.38
BS 3036,5,16.8
BS 3036,15,5.08
BS 3036,20,3.64
BS 3036,30,2.51
BS 3036,45,1.51
BS 3036,60,1.07
BS 3036,100,0.51`,
	"41.5": `30,1667
100,500
300,167
500,100`,
	"54.8": `35,10
50,16
95,25
150,35
100000,50`,
	"64": `separated,250,0.5
low,500,1
surge,250,1
high,1000,1`,
	"armour": `2,1.5,10.2
2,2.5,8.8
2,4,7.9
2,6,7.0
3,1.5,9.5
3,2.5,8.2
3,4,7.5
3,6,6.7
4,1.5,8.8
4,2.5,7.7
4,4,6.8
4,6,4.3`,
	"breakers": `B,3,5,5
C,5,10,10
D,10,20,10
1,2.7,4,4
2,4,7,7
3,7,10,10
4,10,50,50`,
	"bs1361": `5,0.4,10.45
15,0.4,3.28
20,0.4,1.70
30,0.4,1.15
5,5,16.4
15,5,5.00
20,5,2.80
30,5,1.84
45,5,0.96
60,5,0.70
80,5,0.50
100,5,0.36`,
	"conductors": `copper,1,1,18.1
copper,1,1.5,12.1
copper,1,2.5,7.41
copper,1,4,4.61
copper,1,6,3.08
copper,1,10,1.83
copper,1,16,1.15
copper,1,25,0.727
copper,1,35,0.524
copper,1,50,0.387
copper,1,70,0.268
copper,1,95,0.193
copper,1,120,0.153
copper,1,150,0.124
copper,1,185,0.101
copper,1,240,0.0775
copper,1,300,0.0620
copper,1,400,0.0465
copper,2,1,18.1
copper,2,1.5,12.1
copper,2,2.5,7.41
copper,2,4,4.61
copper,2,6,3.08
copper,2,10,1.83
copper,2,16,1.15
copper,2,25,0.727
copper,2,35,0.524
copper,2,50,0.387
copper,2,70,0.268
copper,2,95,0.193
copper,2,120,0.153
copper,2,150,0.124
copper,2,185,0.0991
copper,2,240,0.0754
copper,2,300,0.0601
copper,2,400,0.0470
copper,2,500,0.0366
copper,2,630,0.0283
copper,5,1,19.5
copper,5,1.5,13.3
copper,5,2.5,7.98
copper,5,4,4.95
copper,5,6,3.30
copper,5,10,1.91
copper,5,16,1.21
copper,5,25,0.780
copper,5,35,0.554
copper,5,50,0.386
copper,5,70,0.272
copper,5,95,0.206
copper,5,120,0.161
copper,5,150,0.129
copper,5,185,0.106
copper,5,240,0.0801
copper,5,300,0.0641
aluminium,1,10,3.08
aluminium,1,16,1.91
aluminium,1,25,1.20
aluminium,1,35,0.868
aluminium,1,50,0.641
aluminium,1,70,0.443
aluminium,1,95,0.320
aluminium,1,120,0.253
aluminium,1,150,0.206
aluminium,2,10,3.08
aluminium,2,16,1.91
aluminium,2,25,1.20
aluminium,2,35,0.868
aluminium,2,50,0.641
aluminium,2,70,0.443
aluminium,2,95,0.320
aluminium,2,120,0.253
aluminium,2,150,0.206
aluminium,2,185,0.164
aluminium,2,240,0.125
aluminium,2,300,0.100
aluminium,2,400,0.0778
aluminium,2,500,0.0605
aluminium,2,630,0.0469`,
	"disconnection": `50,120,0.8,0.3,5,1
120,230,0.4,0.2,5,1
230,400,0.2,0.07,5,1
400,1000,0.1,0.04,5,1`,
	"energy": `B,16,3,15000
B,16,6,35000
B,16,10,70000
B,32,3,18000
B,32,6,45000
B,32,10,90000
C,16,6,42000
C,16,10,84000
C,32,3,22000
C,32,6,55000
C,32,10,110000`,
	"fuses": `BS 88-2,2,0.4,6.6
BS 88-2,4,0.4,14
BS 88-2,6,0.4,28
BS 88-2,10,0.4,47
BS 88-2,16,0.4,90
BS 88-2,20,0.4,130
BS 88-2,25,0.4,170
BS 88-2,32,0.4,220
BS 88-2,40,0.4,290
BS 88-2,50,0.4,383
BS 88-2,63,0.4,500
BS 88-2,2,5,4.97
BS 88-2,4,5,10.4
BS 88-2,6,5,18.2
BS 88-2,10,5,32
BS 88-2,16,5,55
BS 88-2,20,5,79
BS 88-2,25,5,100
BS 88-2,32,5,125
BS 88-2,40,5,170
BS 88-2,50,5,220
BS 88-2,63,5,280
BS 88-2,80,5,400
BS 88-2,100,5,520
BS 88-2,125,5,690
BS 88-2,160,5,820
BS 88-2,200,5,1200
BS 88-3,5,0.4,22
BS 88-3,16,0.4,95
BS 88-3,20,0.4,113
BS 88-3,32,0.4,240
BS 88-3,45,0.4,383
BS 88-3,63,0.4,607
BS 88-3,5,5,15
BS 88-3,16,5,56
BS 88-3,20,5,68
BS 88-3,32,5,137
BS 88-3,45,5,218
BS 88-3,63,5,320
BS 88-3,80,5,430
BS 88-3,100,5,570
BS 3036,5,0.4,24
BS 3036,15,0.4,90
BS 3036,20,0.4,130
BS 3036,30,0.4,210
BS 3036,45,0.4,390
BS 3036,60,0.4,546
BS 3036,5,5,13
BS 3036,15,5,43
BS 3036,20,5,60
BS 3036,30,5,87
BS 3036,45,5,145
BS 3036,60,5,205
BS 3036,100,5,430
BS 1361,5,0.4,22
BS 1361,15,0.4,70
BS 1361,20,0.4,135
BS 1361,30,0.4,200
BS 1361,5,5,14
BS 1361,15,5,46
BS 1361,20,5,82
BS 1361,30,5,125
BS 1361,45,5,240
BS 1361,60,5,330
BS 1361,80,5,460
BS 1361,100,5,640
BS 1362,3,0.4,14
BS 1362,13,0.4,95`,
	"k": `54.2,separate,copper,thermoplastic 70 small,30,160,143
54.2,separate,copper,thermoplastic 70 large,30,140,133
54.2,separate,copper,thermosetting 90,30,250,176
54.2,separate,aluminium,thermoplastic 70 small,30,160,95
54.2,separate,aluminium,thermoplastic 70 large,30,140,88
54.2,separate,aluminium,thermosetting 90,30,250,116
54.2,separate,steel,thermoplastic 70 small,30,160,52
54.2,separate,steel,thermosetting 90,30,250,64
54.3,core,copper,thermoplastic 70 small,70,160,115
54.3,core,copper,thermoplastic 70 large,70,140,103
54.3,core,copper,thermoplastic 90 small,90,160,100
54.3,core,copper,thermoplastic 90 large,90,140,86
54.3,core,copper,thermosetting 90,90,250,143
54.3,core,aluminium,thermoplastic 70 small,70,160,76
54.3,core,aluminium,thermoplastic 70 large,70,140,68
54.3,core,aluminium,thermoplastic 90 small,90,160,66
54.3,core,aluminium,thermoplastic 90 large,90,140,57
54.3,core,aluminium,thermosetting 90,90,250,94
54.4,armour,steel,thermoplastic 70,60,200,51
54.4,armour,steel,thermosetting 90,80,200,46
54.4,armour,aluminium,thermoplastic 70,60,200,93
54.4,armour,aluminium,thermosetting 90,80,200,85
54.4,armour,lead,thermoplastic 70,60,200,26
54.4,armour,lead,thermosetting 90,80,200,23
54.5,conduit,steel,thermoplastic 70,50,160,47
54.5,conduit,steel,thermoplastic 90,60,160,44
54.5,conduit,steel,thermosetting 90,60,250,58
54.6,bare,copper,visible,30,500,228
54.6,bare,copper,normal,30,200,159
54.6,bare,copper,fire risk,30,150,138
54.6,bare,aluminium,visible,30,300,125
54.6,bare,aluminium,normal,30,200,105
54.6,bare,aluminium,fire risk,30,150,91
54.6,bare,steel,visible,30,500,82
54.6,bare,steel,normal,30,200,58
54.6,bare,steel,fire risk,30,150,50`,
	"limits": `cmin,0.95,,BS 7671 regulation 411.4.4
cold_share,0.8,,"BS 7671 Appendix 3 and IET Guidance Note 3, the rule of eighty per cent"
operating,70,degC,"BS 7671 Appendix 4, thermoplastic insulation"
operating_constant,230,degC,"BS 7671 Appendix 4 section 6, (230+t2)/(230+t1)"
room,20,degC,IEC 60228
coefficient,0.004,1/K,"IET On-Site Guide, correction of conductor resistance near 20 degrees C"
touch,50,V,BS 7671 regulation 411.5.3
stable,200,ohm,BS 7671 Table 41.5 note 2
socket_rating,63,A,BS 7671 regulation 411.3.2.2
fixed_rating,32,A,BS 7671 regulation 411.3.2.2
release_tolerance,0.2,,IEC 60947-2 clause 8.3.3.1.2
bonding,0.1,ohm,"IET Guidance Note 3 9th edition, main bonding"
ring_match,0.05,ohm,IET Guidance Note 3
ring_open,10,ohm,practice
length_tolerance,0.2,,practice
small_ohm,0.05,ohm,practice
loop_uncertainty,0.3,,IEC 61557-3
loop_small,0.1,ohm,practice
insulation_uncertainty,0.3,,IEC 61557-2
insulation_doubtful,2,Mohm,IET Guidance Note 3
insulation_new,20,Mohm,"IET Guidance Note 3, a new installation"
slip,8,,practice
spur_most,15,m,practice
rcd_additional,30,mA,BS 7671 regulation 415.1.1
rcd_ramp_least,0.5,,IEC 61008-1 rated residual non-operating current
rcd_ramp_most,1,,IEC 61008-1 rated residual operating current
rcd_ramp_a_least,0.35,,"IEC 61008-1, type A with pulsating direct current"
rcd_ramp_a_most,1.4,,"IEC 61008-1, type A with pulsating direct current"
rcd_ramp_a_most_small,2,,"IEC 61008-1, type A with pulsating direct current, to 10 mA"
rcd_quickest,3,ms,practice
drop_lighting,0.03,,BS 7671 Appendix 4 Table 4Ab
drop_other,0.05,,BS 7671 Appendix 4 Table 4Ab
instantaneous,0.1,s,"BS 7671 Appendix 3, circuit-breakers at the upper multiple"
three_phase_least,1.732,,"IET Guidance Note 3, root three"
three_phase_most,2,,"IET Guidance Note 3, twice the single-phase current"
supply_most,25,kA,practice
ze_tns,0.8,ohm,"the usual greatest Ze of TN-S, which distributors no longer tie to the earthing system"
ze_tncs,0.35,ohm,"the usual greatest Ze of TN-C-S, which distributors no longer tie to the earthing system"
cpc_same_to,16,mm2,BS 7671 Table 54.7
cpc_half_from,35,mm2,BS 7671 Table 54.7
bonding_least,6,mm2,BS 7671 regulation 544.1.1
bonding_most,25,mm2,BS 7671 regulation 544.1.1
leads_joined,0.5,ohm,practice
leads_open,5,ohm,practice
leads_apart,99,Mohm,practice
leads_touch,1,Mohm,practice`,
	"materials": `copper,234.5,0.00345,17.241
aluminium,228,0.0025,28.264
lead,230,0.00145,214
steel,202,0.0038,138`,
	"rcd": `general,1,0,300
general,2,0,150
general,5,0,40
delayed,1,130,500
delayed,2,60,200
delayed,5,50,150
BS 4293,1,0,200
BS 7288,1,0,200
BS 7288,5,0,40`,
}
