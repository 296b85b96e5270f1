"""Drills for learners: rounds of known truth met blind, each answer kept, scored, and what to train next."""
