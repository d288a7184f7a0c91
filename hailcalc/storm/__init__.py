"""A storm as the owner sees it: what it earned, how storms compare, and the work still to come."""
