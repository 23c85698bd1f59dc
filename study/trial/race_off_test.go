//go:build !race

package trial

const millsByDefault = 10
