"""Published calculations, one module per topic: plain numbers in, plain numbers out."""
