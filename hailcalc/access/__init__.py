"""How the dents of a panel are reached: pushed from behind, glued from outside, or not at all."""
