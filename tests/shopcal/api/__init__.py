"""The API platform: refusals, versions, keys, pages, description."""
