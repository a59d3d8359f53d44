"""The live figure without a server: the compiled loop as WebAssembly, with its data in one HTML file."""
