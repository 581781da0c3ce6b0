package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"chipassay/host/certificate"
)

func keyCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "key",
		Short: "Make a key to sign certificates with, or show one",
	}
	cmd.AddCommand(keyNewCommand(), keyShowCommand())
	return cmd
}

func keyNewCommand() *cobra.Command {
	var name string
	cmd := &cobra.Command{
		Use:   "new",
		Short: "Make an Ed25519 key: a private file and a public one beside it",
		Long: `Make an Ed25519 key. The private key goes into a file that only you can read, as
unencrypted PKCS #8 PEM: keep it secret. The public key goes into a file of the same
name with .pub, as PEM of SubjectPublicKeyInfo: give it to whoever verifies your
signatures. No file is overwritten.

The fingerprint is the SHA-256 of the 32 bytes of the public key.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := certificate.NewKey()
			if err != nil {
				return err
			}
			private, public, err := k.PEM()
			if err != nil {
				return err
			}
			if err := writeKey(name+".pub", public, 0o644); err != nil {
				return err
			}
			if err := writeKey(name, private, 0o600); err != nil {
				return errors.Join(err, os.Remove(name+".pub"))
			}
			fmt.Fprintf(cmd.OutOrStdout(), "private key  %s, keep it secret\npublic key   %s.pub\nfingerprint  %s\n", name, name, k.Fingerprint())
			return nil
		},
	}
	cmd.Flags().StringVar(&name, "out", "chipassay.key", "file of the private key")
	return cmd
}

// writeKey writes a file that is not there yet.
func writeKey(name string, text []byte, mode fs.FileMode) error {
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s exists and was not changed: name another file with --out", name)
	}
	if err != nil {
		return err
	}
	_, err = file.Write(text)
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return errors.Join(err, os.Remove(name))
	}
	return nil
}

func keyShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show FILE",
		Short: "Show whether a file is a private or a public key, and its fingerprint",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := readKey(args[0])
			if err != nil {
				return err
			}
			kind := "public"
			if k.Private != nil {
				kind = "private"
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s Ed25519 key\nfingerprint  %s\n", kind, k.Fingerprint())
			return nil
		},
	}
}

// longestKey is far beyond the size of a file of a key, bytes.
const longestKey = 1 << 16

// readKey reads a private or public key.
func readKey(name string) (certificate.Key, error) {
	file, err := os.Open(name)
	if err != nil {
		return certificate.Key{}, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, longestKey))
	if err != nil {
		return certificate.Key{}, err
	}
	k, err := certificate.ReadKey(text)
	if err != nil {
		return k, fmt.Errorf("%s: %w", name, err)
	}
	return k, nil
}
