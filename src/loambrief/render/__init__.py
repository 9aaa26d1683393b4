"""Report model to documents: tagged PDF/A, HTML, plain text.

Pages are laid out by ``paginate`` and ``grid``, lines broken by ``lines``, tags kept by
``tags`` and ``structure``, the file written in one go by ``pdf_file`` and finished by ``pdfa``;
reportlab draws and embeds the fonts. The engine is our own because it was measured: a warm
advisory takes about a fifth of the time it took with reportlab's own page layout.

A block on the page is a dataclass in ``report/blocks.py`` or ``report/parts.py``, its flowable
here (with its tags), a macro of its name in ``templates/html/blocks.html.j2`` (and its class in
``SHOWN`` of ``html``), and a function in ``plain``; a test goes over all of them. A flowable
has ``wrap``, ``split``, ``start_height`` and ``drawOn`` as in ``flowables``; text goes through
``Composer.paragraph``, cells through ``tables.lay_out``. ``FigureRow`` puts any number of
half-width charts in two columns.

The file is judged by others as well: ``tests/render/test_witnesses.py``.
"""
