"""One room a topic: its formulas, the state read from a case, findings, needs."""
