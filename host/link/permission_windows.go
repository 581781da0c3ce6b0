package link

// permissionAdvice: Windows answers "access denied" for a port that another
// program holds, too.
func permissionAdvice(string) string {
	return "; close other programs that may hold it, such as a terminal"
}
