"""One room a topic: its formulas, the state read from a case, its findings and needs.

``formulas*.py`` import the shared machinery (``agronomy``), tables and units, never a case and
never another topic: each can be tested from its own paper. ``findings.py`` and its neighbours
(``state``, ``needs``, ``water``, ...) read the case and call formulas; ``assess(case)`` returns
an ``Assessment``. ``chart.py`` makes the spec of the topic's chart for the report.

A new topic is a folder, a name in ``formulas.TOPICS``, one in ``assess.TOPICS`` (the order of
the advisory), and ``templates/text/<language>/<topic>.j2``.

``judge`` gathers one verdict for each nutrient or amendment at each place. What no topic
judged is "not judged", with what would settle it: silence is never advice.
"""
