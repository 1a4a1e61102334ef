"""Pages of the physical world: equipment and its upkeep, and setting the shop up."""
