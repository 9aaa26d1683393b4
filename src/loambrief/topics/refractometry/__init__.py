"""Sap and juice readings, which may only ask for a measurement."""
