"""The report model: what is said, in which order, in which words. No drawing.

``build`` puts the sections together; ``text`` writes messages through the templates of one
language (``language`` tells how a language is added); ``data`` is the same advice as JSON;
``pictures*`` choose charts, ``combine`` and ``client_part`` join several fields. Compiled
templates are kept in ``~/.cache/loambrief`` (``compiled``), a user's own wording is fenced in
(``own_words``).

A term of the glossary is a macro in ``templates/text/<language>/glossary.j2`` (name, meaning) and
its key in ``glossary``. Where a message uses it, the template says so: ``[[buffer pH|buffer_ph]]``
(``terms``); it is printed only where it is used.
"""
