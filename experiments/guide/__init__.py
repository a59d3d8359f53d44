"""The guide: pages, lessons that are run when it is built, and a reference made from the declarations."""
