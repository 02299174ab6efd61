"""Read what is printed on a photo, offline, as a draft that a person confirms."""
