"""The ground floor: only nouns that two or more stages share."""
