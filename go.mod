module waycall

go 1.26
