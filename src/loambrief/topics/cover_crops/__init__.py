"""Cover crops and what they do to the crop that follows."""
