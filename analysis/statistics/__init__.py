"""Small numbers, honestly: intervals, exact tests by animal, and what a book could show at all.

Pure functions on counts. The exact tests need numpy alone; Cochran-Mantel-Haenszel and Firth come
from libraries that belong to the extra `statistics` and are imported when they are asked for.
"""
