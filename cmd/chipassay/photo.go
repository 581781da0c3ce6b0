package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"chipassay/host/certificate"
	"chipassay/host/chip"
	"chipassay/host/photo"
	"chipassay/host/record"
	"chipassay/host/report"
)

// recordPhotoCommand keeps a photo with a chip, or gives it back.
func recordPhotoCommand() *cobra.Command {
	var (
		file                  recordsFile
		out                   string
		force, takeBack, read bool
	)
	cmd := &cobra.Command{
		Use:   "photo N [FILE]",
		Short: "Keep a photo of chip N's top, or write it to a file",
		Long: `Keep a photo of chip N's top with its records: a JPEG or PNG file. It is turned
upright, scaled to 1600 pixels at most and stored as JPEG without any metadata, so
not byte for byte as it was. The latest photo is on the chip's page, report and
certificate. Photos are only added: one that is taken back is not shown any more, but
its picture stays in the file of records.`,
		Example: `  chipassay record photo 17 top.jpg
  chipassay record photo 17 --read
  chipassay record photo 17 --out chip-17.jpg`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			numbers, err := file.letters(args[:1])
			if err != nil {
				return err
			}
			number, err := chip.ParseNumber(numbers[0])
			if err != nil {
				return err
			}
			asked := 0
			for _, yes := range []bool{len(args) == 2, out != "", takeBack, read} {
				if yes {
					asked++
				}
			}
			if asked != 1 {
				return errors.New("name the image to keep, or one of --out, --read and --take-back")
			}
			return file.use(func(s *record.Store) error {
				switch {
				case out != "":
					return writePhoto(cmd, s, number, out, force)
				case takeBack:
					return takeBackPhoto(cmd, s, number)
				case read:
					return readPhoto(cmd, s, number)
				}
				return addPhoto(cmd, s, number, args[1])
			})
		},
	}
	file.flag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&out, "out", "", "write the latest photo to this JPEG file")
	flags.BoolVar(&force, "force", false, "with --out: overwrite an existing file")
	flags.BoolVar(&takeBack, "take-back", false, "take the latest photo back")
	flags.BoolVar(&read, "read", false, "print what may be printed on the chip, where tesseract is installed")
	return cmd
}

// addPhoto keeps the image of a file.
func addPhoto(cmd *cobra.Command, s *record.Store, number int64, name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	image, err := io.ReadAll(io.LimitReader(f, photo.MaxUpload+1))
	if err != nil {
		return err
	}
	picture, err := photo.Picture(image)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	p, err := s.AddPhoto(cmd.Context(), number, picture)
	if err != nil {
		return err
	}
	words, err := photoWords(cmd.Context(), s, p)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "record %s: photo of %s\n", s.Number(p.Chip), words)
	return nil
}

// photoWords say what a photo is, in short.
func photoWords(ctx context.Context, s *record.Store, p record.Photo) (string, error) {
	picture, err := s.Picture(ctx, p.SHA256)
	return fmt.Sprintf("%d x %d pixels, SHA-256 %.12s…", picture.Width, picture.Height, p.SHA256), err
}

// latestPhoto is a chip's photo, which there must be.
func latestPhoto(cmd *cobra.Command, s *record.Store, number int64) (record.Photo, record.Picture, error) {
	p, picture, err := s.Photo(cmd.Context(), number)
	if errors.Is(err, record.ErrNoPhoto) {
		err = fmt.Errorf("there is no photo of chip %d: chipassay record photo %d FILE adds one", number, number)
	}
	return p, picture, err
}

func writePhoto(cmd *cobra.Command, s *record.Store, number int64, name string, force bool) error {
	_, picture, err := latestPhoto(cmd, s, number)
	if err != nil {
		return err
	}
	err = writeNew(name, force, func(w io.Writer) error {
		_, err := w.Write(picture.JPEG)
		return err
	})
	if err == nil {
		fmt.Fprintf(cmd.OutOrStdout(), "written to %s\n", name)
	}
	return err
}

func takeBackPhoto(cmd *cobra.Command, s *record.Store, number int64) error {
	p, _, err := latestPhoto(cmd, s, number)
	if err != nil {
		return err
	}
	if _, err := s.TakeBackPhoto(cmd.Context(), p.Number); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "record %d: the photo was taken back; its picture stays in the file\n", p.Chip)
	return nil
}

// readPhoto prints what may be printed on a chip. It is a suggestion: nothing is recorded.
func readPhoto(cmd *cobra.Command, s *record.Store, number int64) error {
	p, picture, err := latestPhoto(cmd, s, number)
	if err != nil {
		return err
	}
	text, err := photo.Lettering(cmd.Context(), picture.JPEG)
	switch {
	case errors.Is(err, photo.ErrNoReader):
		return fmt.Errorf("%w: on Debian, apt install tesseract-ocr", err)
	case err != nil:
		return err
	case text == "":
		fmt.Fprintln(cmd.OutOrStdout(), "nothing could be read")
		return nil
	}
	fmt.Fprintf(cmd.OutOrStdout(), "It may read: %s\nNothing was recorded. If it is right: chipassay record correct %d --marking %q\n", text, p.Chip, text)
	return nil
}

// sayPhoto names a chip's photo, if it has one.
func sayPhoto(cmd *cobra.Command, s *record.Store, chip int64) error {
	list, err := s.Photos(cmd.Context(), chip)
	if err != nil || len(list) == 0 {
		return err
	}
	last := list[len(list)-1]
	words, err := photoWords(cmd.Context(), s, last)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "Photo      %s, of %s\n", words, last.Time.Local().Format("2006-01-02 15:04"))
	return nil
}

// writeRecordPage writes the report of a chip's current record, with its photo.
func writeRecordPage(cmd *cobra.Command, s *record.Store, number int64, name string) error {
	c, err := chip.Find(cmd.Context(), s, number)
	if err != nil {
		return err
	}
	if c.Current == nil {
		return fmt.Errorf("all records of chip %d were taken back", number)
	}
	r, err := s.Get(cmd.Context(), c.Current.Serial)
	if err != nil {
		return err
	}
	if len(r.Report) == 0 {
		return fmt.Errorf("record %d has no test report", r.Serial)
	}
	d, err := report.ReadDocument(r.Report)
	if err != nil {
		return err
	}
	if d.Photo, err = certificate.Photo(cmd.Context(), s, r.Chip); err != nil {
		return err
	}
	if err := writeFile(name, d.WriteHTML); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "written to %s\n", name)
	return nil
}
