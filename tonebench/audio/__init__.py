"""Recordings and sound cards: takes in, clips out, and how loud both are."""
