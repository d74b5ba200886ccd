"""The stages of qualification: plan and readings in, results out."""
