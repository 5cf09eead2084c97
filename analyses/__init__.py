"""The reports. Each file named like a report reads as a story from store to page; the others hold the steps it calls."""
