"""Was there hail? Reports of the NOAA Storm Prediction Center held against a place and a day.

`records` what a report is; `sizes` a stone in the words of the National Weather Service; `rows`
and `reading` from a file's text to reports, with what was set aside; `days` the local date and
which files hold it; `ground` distances on the ellipsoid; `footprint` the ground around the
reports of a day, `geojson` as GeoJSON and WKT; `near` a claim's place held against all that;
`told` text and JSON, `picture` a small map. The idea: everything here is evidence and says so;
nothing in it decides anything about a claim.
"""
