"""Writers, one module a product: they format finished values and decide nothing."""
