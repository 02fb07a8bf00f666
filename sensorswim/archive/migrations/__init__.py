"""The steps from one layout of the archive to the next; each is frozen once released."""
