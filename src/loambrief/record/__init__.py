"""What happens to an advisory once it counts: issue, supersede, withdraw, redact, export, verify.

It joins the archive with making advisories. To ask for more before issue, add a row to
``tables/record/completeness.csv`` with its source, and a rule in ``completeness`` if "present"
does not do. Who may do what, and what an attacker may not: ``THREATS.md`` in this folder.
"""
