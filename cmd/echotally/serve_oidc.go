package main

import (
	"net/url"
	"strings"

	"echotally/internal/account"
	"echotally/internal/web/access"
)

// oidcPart is what the configuration says of another system that signs people in.
type oidcPart struct {
	Issuer     string   `yaml:"issuer"`
	Client     string   `yaml:"client"`
	SecretFile string   `yaml:"secretFile"`
	Back       string   `yaml:"back"`
	Words      string   `yaml:"words"`
	Claim      string   `yaml:"claim"`
	Roles      []string `yaml:"roles"`
}

const oidcExample = `  oidc:                     # another system that signs people in (OpenID Connect)
    issuer: ""              # its address; empty for none
    client: ""              # what it calls this program
    secretFile: ""          # file that holds the client secret
    back: ""                # https://echo.example/sign-in/back, as set up there
    words: the hospital account
    claim: groups           # that lists the groups of a person
    roles: []               # group=role, such as echo-lab=sonographer
`

func (o *oidcPart) check() error {
	if o.Issuer == "" {
		return nil
	}
	back, err := url.Parse(o.Back)
	switch {
	case o.Client == "" || o.SecretFile == "":
		return misconfigured("web.oidc.client and web.oidc.secretFile are needed", "as set up at the other system")
	case err != nil || back.Host == "" || back.Path != "/sign-in/back":
		return misconfigured("web.oidc.back has to be an address that ends in /sign-in/back", "such as https://echo.example/sign-in/back")
	case len(o.Roles) == 0:
		return misconfigured("web.oidc.roles names no group", "such as [echo-lab=sonographer]")
	}
	if _, err := o.secret(); err != nil {
		return err
	}
	_, err = o.groups()
	return err
}

// secret is what shows the other system that it is this program that asks.
func (o *oidcPart) secret() (string, error) { return lineOf("web.oidc.secretFile", o.SecretFile, 1) }

// groups are the roles by group.
func (o *oidcPart) groups() (map[string]account.Role, error) {
	out := map[string]account.Role{}
	for _, entry := range o.Roles {
		group, word, _ := strings.Cut(entry, "=")
		role := account.Role(word)
		known := false
		for _, r := range account.Roles() {
			known = known || r == role
		}
		if group == "" || !known {
			return nil, misconfigured("web.oidc.roles has an entry that is not group=role", "the roles are sonographer, reader, quality-manager and administrator")
		}
		out[group] = role
	}
	return out, nil
}

// provider is that system, nil for none.
func (o *oidcPart) provider() (*access.Provider, error) {
	if o.Issuer == "" {
		return nil, nil
	}
	secret, err := o.secret()
	if err != nil {
		return nil, err
	}
	groups, err := o.groups()
	if err != nil {
		return nil, err
	}
	return &access.Provider{Words: o.Words, Issuer: o.Issuer, Client: o.Client, Secret: secret, Back: o.Back, Claim: o.Claim, Roles: groups}, nil
}
