"""What a pack is once it is joined: what it may have, its fuses and wire, and the words of its build sheet."""
