"""What a site can carry: hours left, the largest starts seen, outages ridden through."""
