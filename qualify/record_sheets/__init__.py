"""Record sheets that people fill in: installation, observed answers, things restored, dispositions."""
