"""Plant tissue against published ranges, sap and stalk nitrate, ratios as a rule of the trade."""
