"""How sure a figure is: statistics of one window, of a simulation, of replicate runs, of unwatched places.

Pure functions of arrays, like the figures. They know nothing of files, plans, requirements or reports;
scipy and statsmodels are imported inside the functions that use them.
"""
