"""Which steps are there, one file each, named by number?"""
