"""Programs for working on ohmwright, named from the root of the working copy."""
