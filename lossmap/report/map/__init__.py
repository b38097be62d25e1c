"""map.html: the field's surfaces, points, zones and stops in one file that asks for nothing.

webmap       the page
layers       its layers: words, classes, colours
picture      a surface as a picture to look at and as numbers to read
pointbytes   the log's points as bytes
packing      whole numbers as few bytes
foliummap    the part that folium lays out
leaflet      Leaflet's own files
"""
