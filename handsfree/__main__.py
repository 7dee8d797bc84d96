from handsfree.cli import main

main()
