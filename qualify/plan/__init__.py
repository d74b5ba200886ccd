"""The plan: what is to be shown, where, with what, by whom; from a TOML file or from options."""
