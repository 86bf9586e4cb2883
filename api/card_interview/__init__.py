"""The interview that ends in a machine card: questions one after another, checked at once, kept after every answer."""
