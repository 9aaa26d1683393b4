"""The case: what a consultant types, checked and converted once at the border.

``load`` is the way in. ``reader`` turns YAML into plain data and ``source`` remembers line
and column; ``scalars`` says what a bare word means and ``schema`` what may stand where.
``validate`` words the schema's errors, ``checks`` finds contradictions, ``salvage`` lets it
do so in a faulty case, ``normalise`` converts to house units, ``plausible`` warns;
``problems`` and ``codes`` give all of it one form. ``select`` answers common questions (which
increment is the tilled layer?). ``json_schema`` and ``starter`` serve the user's editor;
``fields`` lays the schema out for tables and forms, the modules ``workbook_*`` write and read a
case as a workbook by it. ``yaml_edit`` and ``yaml_change`` put values into a case's text. Only
``reader`` knows YAML.
"""
