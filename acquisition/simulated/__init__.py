"""A make-believe box, gauge and shop, richer than anything the analysis assumes.

It stands in this folder, which may not know the analysis, so that a fit can never judge itself.

``scenario`` says what a test is made of, ``simulate`` gives its log and the truth, ``draw`` draws tests at
random, ``live`` answers like a gauge as time goes by. The flow laws in ``laws`` and the steps in ``engine``
are written apart from the analysis on purpose and share no code with it.
"""
