"""From a case to findings: one module per topic, each with ``assess(case)``."""
