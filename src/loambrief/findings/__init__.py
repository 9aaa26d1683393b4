"""What the findings of all topics share: the model, confidence, places, kinds of crop.

A ``Finding`` holds its conclusion, evidence for and against, its grade, its confidence by the
written rule of ``confidence``, verdicts and ``Need`` s with amounts. Grades: ``measured`` >
``calculated`` > ``published`` (other people's reviews, trials and surveys, with their kind) >
``observed`` > ``screening sign``; apart from these ``common practice``: a rule of the trade
without a source, which stands beside the published evidence. Weeds
and Brix may only ask for a measurement. What is lacking is a ``Missing``, with the conclusions
that drop out.

Things are known by key: a ``Place`` by its id, a message by its macro, a nutrient or material
by its key. Labels are printed and never decide anything (``tests/properties/test_renaming.py``).
"""
