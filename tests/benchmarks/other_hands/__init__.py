"""Pictures by makers that share no code with the package's own renderer: a lasting check.

A detector that was taught on one renderer's pictures may have learnt that renderer. Each maker
here draws from first principles in its own way. Nothing under sporecount/ may import this
package, training never sees its pictures, and it imports nothing from sporecount.render or
sporecount.train.
"""
