"""What the shop's past says: of the scanner over the months, of each part from scan to scan."""
