"""Tests of the page as people meet it: Debian's chromium, a real page, a real daemon on the simulated rig."""
