"""What other bridges publish, taken in by a file that says where each reading is found."""
