"""A make-believe box, gauge and shop, richer than anything the analysis assumes.

It stands in this folder, which may not know the analysis, so that a fit can never judge itself.
"""
