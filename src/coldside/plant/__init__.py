"""Build and demand as arrays, solved: steady balance, flows, the transient kernel, the forecast with its health."""
