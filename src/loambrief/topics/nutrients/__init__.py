"""Phosphorus, potassium, sulfur and micronutrients by a published guide."""
