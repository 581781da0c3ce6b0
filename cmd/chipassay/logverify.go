package main

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/record"
	"chipassay/host/report"
)

func logVerifyCommand() *cobra.Command {
	var (
		file recordsFile
		kept record.Seals
	)
	cmd := &cobra.Command{
		Use:   "verify",
		Short: "Check that no record was changed, removed or inserted",
		Long: `Read the whole file of records and recompute every digest, those of photos too; each
record holds the digest of the one before. The file is not changed.

Anyone who can write to the file can cut off its last records, or recompute all
digests from some record on; the file does not show that. So keep the output of
chipassay log digest where they cannot change it, or keep a certificate, which has
its record's number and digest. --count and --digest compare with it.

With --records postgres://… this bench's own file is verified, and then the records
of all benches with the rows that tie their chains together each day.

Exit status: 0 unchanged; 1 changed.`,
		Example: `  chipassay log verify
  chipassay log verify --count 17 --digest 3f0c…`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, err := range []error{checkSeal(&kept.Records, "--count", "--digest"), checkSeal(&kept.Lots, "--lot-count", "--lot-digest"),
				checkSeal(&kept.Photos, "--photo-count", "--photo-digest")} {
				if err != nil {
					return err
				}
			}
			if file.onServer() {
				return file.verifyServer(cmd, kept)
			}
			name, err := file.existing()
			if err != nil {
				return err
			}
			n, err := verifyFile(cmd, name, kept)
			if err != nil {
				return err
			}
			and := ""
			if kept != (record.Seals{}) {
				and = ", and as when the digest was kept"
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: %d records, all as they were written%s\n", name, n, and)
			return nil
		},
	}
	file.flag(cmd)
	flags := cmd.Flags()
	flags.Int64Var(&kept.Records.Count, "count", 0, "how many records there were, or the number of the record on a certificate")
	flags.StringVar(&kept.Records.Digest, "digest", "", "SHA-256 digest of the last of them, 64 hexadecimal digits")
	flags.Int64Var(&kept.Lots.Count, "lot-count", 0, "how many lots there were")
	flags.StringVar(&kept.Lots.Digest, "lot-digest", "", "digest of the last of them")
	flags.Int64Var(&kept.Photos.Count, "photo-count", 0, "how many photos there were, with those that take one back")
	flags.StringVar(&kept.Photos.Digest, "photo-digest", "", "digest of the last of them")
	return cmd
}

// verifyFile says how many records are as they were written; a change is an error with
// the status of one.
func verifyFile(cmd *cobra.Command, name string, kept record.Seals) (records int, err error) {
	n, bad, err := record.VerifyFile(cmd.Context(), name, kept)
	if bad != nil {
		return n, &statusError{exitFailed, fmt.Errorf("%s was changed: %s; keep the file, and restore a backup under another name", name, bad)}
	}
	return n, err
}

var sha256Digits = regexp.MustCompile("^[0-9a-f]{64}$")

// checkSeal understands a count and a digest as typed or scanned.
func checkSeal(s *record.Seal, count, digest string) error {
	s.Digest = strings.ToLower(strings.Join(strings.Fields(s.Digest), ""))
	switch {
	case s.Count == 0 && s.Digest == "":
		return nil
	case s.Count < 1 || s.Digest == "":
		return fmt.Errorf("give both %s, from 1 on, and %s, as chipassay log digest prints them", count, digest)
	case !sha256Digits.MatchString(s.Digest):
		return fmt.Errorf("%s %s: a SHA-256 digest has 64 hexadecimal digits", digest, s.Digest)
	}
	return nil
}

func logDigestCommand() *cobra.Command {
	var (
		file   recordsFile
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "digest",
		Short: "Print how many records there are and the digest of the last, to keep elsewhere",
		Long: `Print how many records, lots and photos there are, and the digests of the last of
them. Each digest covers all before it. Keep them where nobody who can write to
the file can change them, on paper for example. Then log verify also notices
records that were cut off or rewritten.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := file.existing()
			if err != nil {
				return err
			}
			if _, err := verifyFile(cmd, name, record.Seals{}); err != nil {
				return err // nothing changed is sealed
			}
			return file.use(func(s *record.Store) error {
				now, err := s.Seals(cmd.Context())
				if err != nil {
					return err
				}
				return writeSeals(cmd, now, asJSON)
			})
		},
	}
	file.flag(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

func writeSeals(cmd *cobra.Command, now record.Seals, asJSON bool) error {
	out := cmd.OutOrStdout()
	if asJSON {
		return report.WriteJSON(out, struct {
			Count     int64  `json:"count"`
			Digest    string `json:"digest"` // empty where there is no record
			LotCount  int64  `json:"lot_count"`
			LotDigest string `json:"lot_digest"`

			PhotoCount  int64  `json:"photo_count"`
			PhotoDigest string `json:"photo_digest"`
		}{now.Records.Count, now.Records.Digest, now.Lots.Count, now.Lots.Digest, now.Photos.Count, now.Photos.Digest})
	}
	if now == (record.Seals{}) {
		return errors.New("there is no record yet, and so no digest")
	}
	check := "chipassay log verify"
	for _, c := range []struct {
		what, flag string
		record.Seal
	}{{"records", "", now.Records}, {"lots", "lot-", now.Lots}, {"photos", "photo-", now.Photos}} {
		if c.Count == 0 {
			continue
		}
		fmt.Fprintf(out, "%-8s %d\ndigest   %s\n", c.what, c.Count, c.Digest)
		check += fmt.Sprintf(" --%scount %d --%sdigest %s", c.flag, c.Count, c.flag, c.Digest)
	}
	_, err := fmt.Fprintf(out, "Keep this where nobody who can write to the file can change it. To compare later:\n  %s\n", check)
	return err
}
