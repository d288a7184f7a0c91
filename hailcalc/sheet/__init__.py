"""The claim sheet: the same content as JSON for machines and as PDF for people.

`document` builds the JSON with its digest, `verify` recomputes one, `pdf` draws one with
the JSON attached inside. A PDF is drawn from the JSON alone, so the two cannot disagree.
"""
