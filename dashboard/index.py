"""The page that holds every screen; THEME: address of the script that sets light or dark."""

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<title>{%title%}</title>
{%favicon%}
{%css%}
<script src="THEME"></script>
</head>
<body>
<noscript>This page needs JavaScript; the packs hold the same figures as PDF.</noscript>
{%app_entry%}
<div>{%config%}{%scripts%}{%renderer%}</div>
</body>
</html>"""
