"""The case: what a consultant types, checked and converted once at the border.

``reader`` turns YAML into plain data that remembers line and column; ``schema`` says what
may stand there; ``problems`` words what is wrong; ``select`` answers common questions
(which increment is the tilled layer?). Only ``reader`` knows YAML.
"""
