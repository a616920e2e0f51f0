"""The report of a night: facts out of the log, pictures as SVG, one HTML page, tables as CSV, nights side by side."""
