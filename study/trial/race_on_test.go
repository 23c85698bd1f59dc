//go:build race

package trial

// The race detector makes a fit several times as slow.
const millsByDefault = 2
