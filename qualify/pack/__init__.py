"""The data pack: workbook, plots and files; sees the record and the readings, computes nothing."""
