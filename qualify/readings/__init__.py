"""From logger files to a recording: bytes, layout, table, clock, joined files."""
