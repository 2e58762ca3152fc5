"""Many sites: their exports renewed, and one book of what stands out in them."""
