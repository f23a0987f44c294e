"""Ways to bring drawn objects together into one picture."""
