"""season.html and the files beside it: what all fields of a season say together.

files      what is written, and in which order
page       season.html
crops      loss by crop: bushels of corn and of soybeans make no sum
rows       tables of the page: a row a field, a row a comparison
map        where the fields lie, and what each lost
labels     their names on that drawing
drivers    speed and dryness inside the fields, in sentences
drawings   the same as curves
words      headline, comparisons, first steps, cautions
values     summary.json, and the columns of table and outlines
"""
