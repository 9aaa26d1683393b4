"""The season in numbers: tables and a report over the advisories of clients, fields and years.

Only the data of advisories (``<case id>.json``) is read, from folders or from an archive; cases,
pages and signatures are not looked at. ``gather`` finds the data and decides what counts,
``rows`` takes one advisory apart, ``growing`` holds millions of cells, ``tables`` makes the tidy
tables, ``spread`` and ``change`` work out distributions and trends, ``report`` writes the
document and ``files`` the tables.

**What counts.** Each advisory once: of a number its latest revision, of a case without a number
its latest draft, and the issued one before a draft of the same case. Redacted copies,
withdrawn and superseded ones are left aside and counted. A laboratory result that several
advisories repeat counts once, with the latest.

**What is one field.** The same ``field.id``; without an id, the same name of the same client.
Its label is that of its latest advisory, so that a field that was renamed stays one field.

**What is missing stays missing.** Advisories of a version before 0.5 hold no laboratory results:
they count in findings, actions and money, and their number is printed. Amounts of different
currencies are never added, results of different methods never pooled.
"""
