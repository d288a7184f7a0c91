"""The job card: what the technician at the vehicle needs, without a price.

`card` is what stands on it, as plain data made from an estimate; `pdf` draws it, on one page
wherever that can be.
"""
