// Package browsertest holds what people look at against what they need, in a real browser: it fits a desk, a tablet and a
// telephone, can be used by the keyboard alone and by who cannot see it, makes no error and asks nothing of another host.
// It is tests alone. Pictures of every page are kept in bin/screenshots.
package browsertest
