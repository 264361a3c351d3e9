"""Pages, pictures and files of fieldwork: antenna tests, calibration, survey points, forms."""
