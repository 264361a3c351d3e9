"""measurements: antenna comparison logs, readings and calibration."""
