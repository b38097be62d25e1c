"""ranking.html and the files beside it: which field to cut first.

files     ranking.csv, ranking.geojson and summary.json
page      ranking.html
words     headline, reasons, cautions
changes   what is different from the last plan
"""
