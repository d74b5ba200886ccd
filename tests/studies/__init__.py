"""Coverage studies: invented surveys of known truth, and how often a stated interval holds it."""
