package limit

// NewSmall makes a limiter that keeps only so many buckets.
func NewSmall(c Config, most int) *Limiter {
	l := New(c)
	l.most = most
	return l
}

// Kept is how many buckets there are.
func (l *Limiter) Kept() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.buckets)
}
