package serving

import (
	"errors"
	"fmt"

	"flourcast/cmd/flourcast/shell"
	"flourcast/report"
	"flourcast/web"
	"flourcast/web/people"

	"github.com/spf13/cobra"
)

// User is the command of the file of users.
func User(a *shell.App) *cobra.Command {
	c := &cobra.Command{
		Use:   "user",
		Short: "Say who may sign in where 'flourcast serve --users FILE' runs, and as what",
		Long: `user keeps one TOML file of users, mode 0600, with Argon2id hashes of their passwords.
A reader looks and prints; a technician also adds files, corrects, forecasts and writes
down what was done with a lot; a scientist also fits models and changes specifications.

A server sees a change at once: a user who is removed, or whose password is set anew,
is signed out. Passwords are asked for at the terminal, and are not shown; otherwise
the first line of standard input is taken.`,
	}
	c.AddCommand(userAdd(a), userList(a), userRole(a), userRemove(a), userPassword(a))
	return c
}

// Schemas of what the commands print with --json.
type (
	usersListed struct {
		Schema string       `json:"schema"`
		File   string       `json:"file"`
		Users  []listedUser `json:"users"`
	}
	listedUser struct {
		Name      string `json:"name"`
		Role      string `json:"role"`
		OlderHash bool   `json:"older_hash"`
	}
	userChanged struct {
		Schema string `json:"schema"`
		File   string `json:"file"`
		Name   string `json:"name"`
		Role   string `json:"role,omitempty"`
		Done   string `json:"done"`
	}
)

// usersFlag is the file that all of these commands work on.
func usersFlag(c *cobra.Command, path *string) *cobra.Command {
	c.Flags().StringVar(path, "users", "", "file of users")
	c.PreRunE = func(*cobra.Command, []string) error {
		if *path == "" {
			return &shell.UsageError{What: "give the file of users: --users FILE"}
		}
		return nil
	}
	return c
}

// refused makes an error of what was asked for one of the command line.
func refused(flag string, err error) error {
	var asked *people.Refusal
	var listen *web.ListenError
	if errors.As(err, &asked) || errors.As(err, &listen) {
		return &shell.UsageError{What: flag + err.Error()}
	}
	return err
}

// change edits the file and says what was done: done is a sentence's end, "may sign in".
func change(a *shell.App, path, name, done string, create bool, f func(*people.Roll) error) error {
	var role people.Role
	err := people.Edit(path, create, func(r *people.Roll) error {
		if err := f(r); err != nil {
			return err
		}
		if u, ok := r.Find(name); ok {
			name, role = u.Name, u.Role
		}
		return nil
	})
	if err != nil {
		return refused("", err)
	}
	return a.Show(userChanged{"flourcast.user/1", path, name, string(role), done}, func() report.Document {
		doc := report.Document{Title: name, Subtitle: done + "; " + path + " has mode 0600"}
		if role != "" {
			doc.Subtitle = string(role) + ", " + doc.Subtitle
		}
		return doc
	})
}

func roleFlag(c *cobra.Command, role *string) {
	c.Flags().StringVar(role, "role", "", "reader, technician or scientist")
}

func userAdd(a *shell.App) *cobra.Command {
	var path, role string
	c := &cobra.Command{
		Use: "add NAME --role reader|technician|scientist --users FILE", Short: "Add a user; makes the file where there is none", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return change(a, path, args[0], "may sign in", true, func(r *people.Roll) error {
				name, err := r.Vacant(args[0], people.Role(role))
				if err != nil {
					return err
				}
				password, err := newPassword(c, name)
				if err != nil {
					return err
				}
				return r.Add(name, people.Role(role), password, people.Today)
			})
		},
	}
	roleFlag(c, &role)
	return usersFlag(c, &path)
}

func userRole(a *shell.App) *cobra.Command {
	var path, role string
	c := &cobra.Command{
		Use: "role NAME --role reader|technician|scientist --users FILE", Short: "Give a user another role", Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return change(a, path, args[0], "from now on", false, func(r *people.Roll) error { return r.SetRole(args[0], people.Role(role)) })
		},
	}
	roleFlag(c, &role)
	return usersFlag(c, &path)
}

func userRemove(a *shell.App) *cobra.Command {
	var path string
	return usersFlag(&cobra.Command{
		Use: "remove NAME --users FILE", Short: "Remove a user, who is signed out; what they wrote down stays", Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return change(a, path, args[0], "may not sign in any more", false, func(r *people.Roll) error { return r.Remove(args[0]) })
		},
	}, &path)
}

func userPassword(a *shell.App) *cobra.Command {
	var path string
	return usersFlag(&cobra.Command{
		Use: "password NAME --users FILE", Short: "Set a user's password anew, which signs them out", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return change(a, path, args[0], "password set anew", false, func(r *people.Roll) error {
				u, ok := r.Find(args[0])
				if !ok {
					return r.SetPassword(args[0], "", people.Today) // says who there is
				}
				password, err := newPassword(c, u.Name)
				if err != nil {
					return err
				}
				return r.SetPassword(u.Name, password, people.Today)
			})
		},
	}, &path)
}

func userList(a *shell.App) *cobra.Command {
	var path string
	return usersFlag(&cobra.Command{
		Use: "list --users FILE", Short: "List the users with their roles", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			r, err := people.Read(path)
			if err != nil {
				return err
			}
			res := usersListed{Schema: "flourcast.users/1", File: path, Users: []listedUser{}}
			for _, u := range r.Users() {
				res.Users = append(res.Users, listedUser{u.Name, string(u.Role), u.Older()})
			}
			return a.Show(res, func() report.Document { return usersDocument(res) })
		},
	}, &path)
}

// usersDocument is the list in words.
func usersDocument(res usersListed) report.Document {
	t := &report.Table{ID: "users", Caption: fmt.Sprintf("Who may sign in: %d", len(res.Users)), Columns: []report.Column{{Heading: "name"}, {Heading: "role"}, {Heading: "password"}}}
	for _, u := range res.Users {
		kept := "kept as new ones are"
		if u.OlderHash {
			kept = "kept at a lower cost: set it anew"
		}
		t.Rows = append(t.Rows, []report.Cell{report.Words(u.Name), report.Words(u.Role), report.Words(kept)})
	}
	return report.Document{Title: "Users", Subtitle: res.File, Sections: []report.Section{{Blocks: []report.Block{t}}}}
}
