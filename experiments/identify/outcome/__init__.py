"""What an identification is told as: tables, files, pictures."""
