"""Organic matter, C:N, residues, compost and what nitrogen they supply."""
