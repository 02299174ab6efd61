"""Read what is printed on a photo or in a manual, offline, as a draft that a person confirms."""
