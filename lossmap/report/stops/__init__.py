"""Where to count next: a plan for maps and receivers, and the sheet it is filled in on.

files         what is written, and in which order
plan          stops-plan.geojson and stops-plan.gpx
count_sheet   count-sheet.html: a form for a phone, a table for paper
"""
