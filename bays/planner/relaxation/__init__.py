"""What no plan can avoid: vehicles planned each for itself, paying for shared time by the cell."""
