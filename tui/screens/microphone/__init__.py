"""Microphone check: may this input be trusted for hiss?"""
