package client

import (
	"errors"
	"fmt"
	"os"
	"strings"
)

// KeyVariable is the variable of the environment that holds the key.
const KeyVariable = "RIDEOUT_KEY"

// ReadKey reads the key from a file, or where none is named from the environment. It is no argument of any program:
// those can be seen by every user of the machine.
func ReadKey(file string, getenv func(string) string) (string, error) {
	if file == "" {
		if key := strings.TrimSpace(getenv(KeyVariable)); key != "" {
			return key, nil
		}
		return "", errors.New("there is no key: name its file, or set " + KeyVariable)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("read the key: %w", err)
	}
	key := strings.TrimSpace(string(text))
	if key == "" || strings.ContainsAny(key, " \t\r\n") {
		return "", fmt.Errorf("%s does not hold one key and nothing else", file)
	}
	return key, nil
}
