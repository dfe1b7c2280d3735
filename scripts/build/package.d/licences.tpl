{{ range . }}  {{ .Name }}: {{ .LicenseName }}
{{ end }}