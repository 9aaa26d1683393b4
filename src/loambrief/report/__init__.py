"""The report model: what is said, in which order, in which words. No drawing."""
