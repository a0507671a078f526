"""What `joulebook doctor` looks at, one module for each part of a deployment."""
