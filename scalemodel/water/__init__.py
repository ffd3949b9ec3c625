"""The supply: from a water test to what a litre can drop."""
