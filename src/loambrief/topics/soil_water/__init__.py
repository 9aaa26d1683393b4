"""Water that the soil holds for the crop, how much may be used, and how often to irrigate."""
