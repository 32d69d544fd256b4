"""The program on a bench in stepped time, alone or beside other ways to keep pH."""
